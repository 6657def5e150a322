"""Facts in, decision out: no clock, no database, no phrases, no I/O but reading the rulebook."""
