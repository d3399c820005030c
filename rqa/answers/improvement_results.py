"""The answers to the questions of `rqa.improvement_questions`."""
