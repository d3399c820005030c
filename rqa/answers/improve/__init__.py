"""What to act on, whether it worked, what it takes to see a change, and whether goals are met."""
