"""The brief and the proposal: their content, and how it becomes PDF and Word."""
