"""The patterns that can be chosen: by name, how hard they are, whether limbs can play them."""
