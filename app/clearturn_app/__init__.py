"""The program around the library: command line, window and sheets."""
