"""A joint, a bore cell or the closed-form chain made ready: meshed, condensed, with all that load cases ask of it."""
