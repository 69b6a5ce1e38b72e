"""What a session asks for: frames, blends and looks, and what has to be made of each."""
