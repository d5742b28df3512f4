"""The roof as a drawing in black and white: plan, section, legend in words; as SVG and as PNG."""
