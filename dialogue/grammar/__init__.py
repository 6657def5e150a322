"""What is listened for at each question: a spoken grammar and a vocabulary, both made from the cue files."""
