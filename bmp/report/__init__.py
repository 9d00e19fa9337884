"""What the reader gets to see: figures, tables and pages. Nothing is computed here."""
