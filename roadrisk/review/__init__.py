"""The local page on which a person decides about reports."""
