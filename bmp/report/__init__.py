"""The last step: results for people (page, pictures, workbook) and for programs (JSON, CSV)."""
