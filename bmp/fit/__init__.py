"""Fit: kinetic models to net yield curves, with intervals that hold what they say."""
