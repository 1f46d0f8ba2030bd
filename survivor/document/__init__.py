"""What a page, a document and a workbook look like; it knows no survival."""
