"""What we add: suction pits, fan, pipes."""
