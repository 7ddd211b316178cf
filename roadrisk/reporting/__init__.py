"""Reporting: draws findings as a map and tables; computes nothing a number depends on."""
