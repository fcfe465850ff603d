"""What the guard learns and finds, measured on winters of simulated houses that it was not made for."""
