"""From bytes on the wire to readings in the store. No physics, no pages."""
