"""Assembly, settling and the load cases of one fastener or a bore cell."""
