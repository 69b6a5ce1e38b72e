"""The proof page: one HTML file on which a client chooses frames and looks, and the answer that it gives back."""
