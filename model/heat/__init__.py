"""Heat transfer by formula, and the heat that a joint meets over a duty."""
