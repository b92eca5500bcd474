"""Benchmarks, run by hand: they measure and print, they assert nothing."""
