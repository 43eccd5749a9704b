"""One job from address to certificate."""
