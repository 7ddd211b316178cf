"""Who a report is for, and what it may give away."""
