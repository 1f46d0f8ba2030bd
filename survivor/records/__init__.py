"""Files to tidy visits to risk intervals, with every record accounted for."""

from survivor.records.book import Records, read_records

__all__ = ["Records", "read_records"]
