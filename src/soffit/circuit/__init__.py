"""Lines as circuits: cable, taps, trees and meshes, transformers, amplifier load. Knows no job."""
