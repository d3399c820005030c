"""The answers to the questions of `rqa.risk_questions`."""
