"""What is remembered: customers, racquets, jobs, readings, consultations; knows no rules, phrases or channels."""
