"""The road network: building it, placing points on it, meeting it, naming places on it."""
