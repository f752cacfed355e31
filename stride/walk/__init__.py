"""The measurement itself: clip → camera → ground → tracks → prints → strides → measures → verdict.

Pure: nothing here opens a file, draws, prints or reads a clock.
"""
