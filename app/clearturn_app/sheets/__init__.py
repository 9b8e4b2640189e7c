"""What the route card's operations show and let change."""
