"""One file a command: what it takes, what it calls, what it says. Nothing is computed here."""
