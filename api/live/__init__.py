"""The live stream: what has come in, to every open page."""
