"""The use cases: what the faces call; joins packages, runs steps in order, opens files."""
