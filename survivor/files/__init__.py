"""Everything read from or written to disk: sheets, cells, headers, bounds, TOML, writing."""
