"""What ``survivor check`` found: as text, as a page, and as a workbook of the sheets, cells marked."""
