"""The engine against its contract: properties, and a plain loop over every rig."""
