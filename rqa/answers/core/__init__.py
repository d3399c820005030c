"""What every question shares: its scope, its result, findings, comparable work, what a store can tell."""
