"""The solver: grid, soil map, network of conductances, unit fields."""
