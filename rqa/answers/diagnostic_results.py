"""The answers to the questions of `rqa.diagnostic_questions`."""
