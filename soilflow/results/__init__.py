"""What comes out: pressure under the slab, coverage, margins, flows through the leaks."""
