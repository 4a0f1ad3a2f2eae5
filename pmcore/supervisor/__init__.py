"""Runs web, workers and scheduler together on one machine: starts them, restarts what dies, ends them with itself."""
