"""The season beside the records: rain of the gauges that stand for the sites."""
