"""Safety notices and recalls: what an issuer asks, which drivers it concerns, and what was done about each."""
