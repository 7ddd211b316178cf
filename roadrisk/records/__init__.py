"""Reading, column names, checks: the only door for files coming in."""
