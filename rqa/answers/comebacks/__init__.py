"""Which repairs came back, when, why, what that costs, and what months not yet mature will show."""
