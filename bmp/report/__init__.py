"""The last step: results become words, pictures, a page and a workbook."""
