"""The label for the throat: what stands on it, its code, and the PDF that a printer takes."""
