"""The shop's rulebook as use cases: which edition is in use, what another would change, replay, reasons."""
