"""Reports from the public: exact repeats joined, the rest placed on the roads."""
