"""Buttons, batches that begin by themselves, weighings that a scale offers."""
