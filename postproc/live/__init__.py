"""A page that follows the hand: an engine's figures while torque, gas, heat or gasket are moved."""
