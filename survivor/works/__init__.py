"""What each work of a preparation adds: columns of plots, what can be told apart, timing, later works."""
