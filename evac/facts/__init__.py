"""What things are: frozen facts that travel down the chain."""
