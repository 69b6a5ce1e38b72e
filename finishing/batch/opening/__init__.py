"""A frame opened: cut to what is kept, turned, reduced, in linear light."""
