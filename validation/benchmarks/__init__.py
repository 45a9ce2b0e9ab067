"""Speed and memory, measured side by side in one run; `python -m validation.benchmarks` prints the tables."""
