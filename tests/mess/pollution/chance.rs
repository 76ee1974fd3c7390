//! A fixed sequence of numbers that looks like chance (Knuth's MMIX constants).

pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        let mut chance = Chance(seed);
        chance.below(1);
        chance
    }

    pub fn below(&mut self, most: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % most.max(1)
    }

    pub fn one_of<T: Copy>(&mut self, things: &[T]) -> T {
        things[self.below(things.len())]
    }
}
