"""What ``survivor check`` found: as a page, and as a workbook of the sheets with their cells marked."""

from survivor.report.checked.page import page_of_check
from survivor.report.checked.workbook import workbook_of_check

__all__ = ["page_of_check", "workbook_of_check"]
