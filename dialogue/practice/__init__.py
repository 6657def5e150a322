"""Practice for trainees as a use case: exercises in the order memory needs them, marked and kept on record."""
