"""Effects in survival per 100 planted: standardised survival, differences, the radius response."""
