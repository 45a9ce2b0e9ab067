"""Heat conduction on the meshes of elasticity, steady and in time."""
