"""The kiosk and the staff board in the browser; gets the conversation and the counter handed in and decides nothing."""
