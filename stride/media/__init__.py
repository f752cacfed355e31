"""Video files: frames with their presentation times, and the walk drawn over its clip."""
