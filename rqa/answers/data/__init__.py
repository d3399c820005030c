"""What was loaded, rejected, remarked on, and what is missing from the logs."""
