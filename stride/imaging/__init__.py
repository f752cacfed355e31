"""Images in, arrays out; numpy and OpenCV only."""
