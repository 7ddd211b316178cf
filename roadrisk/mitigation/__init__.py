"""Mitigation: what to do where, what it costs, what it averts, and whether it helped."""
