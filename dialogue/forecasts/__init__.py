"""Forecasts at the counter: of stringings on record, and what the shop's own jobs teach them."""
