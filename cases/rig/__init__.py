"""What the logs of a rig say: cleaning, fits, intervals, comparison."""
