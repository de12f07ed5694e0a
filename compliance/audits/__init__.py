"""Audit rounds: a sealed population, a draw nobody can steer, findings, an outcome."""
