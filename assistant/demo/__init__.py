"""The invented club: data to try the assistant with; nobody in it is real."""
