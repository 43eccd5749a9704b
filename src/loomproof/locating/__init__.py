"""Where along its wires a fault lies: places and their intervals, from farads and ohms that were read."""
