"""The shell around the core: opens the ports, turns the wheel, feeds the watchdog. Holds no rule of heat."""
