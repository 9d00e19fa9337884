"""The local page in the browser: plan, take readings, see results, all in plain trial files."""
