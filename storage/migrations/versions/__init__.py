"""The steps themselves; a published one is never edited."""
