"""Records in, arrays through science, complete results out; decides nothing."""
