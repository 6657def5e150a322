"""Ears and mouth: sound in, words and values out, and words back as sound; loaded only by who speaks."""
