"""Sound: levels, evenness, rooms, noise and speech, as pure functions of numbers."""
