"""Every form the database has had, one step a file; the files are run in the order of their numbers."""
