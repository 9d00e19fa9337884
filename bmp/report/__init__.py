"""Figures, tables and the page that a trial ends in."""
