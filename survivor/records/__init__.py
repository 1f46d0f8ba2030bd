"""Files to tidy visits to risk intervals, with every record accounted for."""

from survivor.records.reading import read_records
from survivor.records.result import Records

__all__ = ["Records", "read_records"]
