"""Speed and memory of the valuation beside what an engineer would write by hand: `python -m benchmarks`."""
