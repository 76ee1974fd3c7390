//! Names met so far, each kept once: a file of a million rows holds few vans.

use std::collections::HashMap;
use std::sync::Arc;

#[derive(Debug, Default)]
pub(super) struct Names {
    last_van: Option<Arc<str>>,
    vans: HashMap<Box<str>, Arc<str>>,
    last_place: Option<(Box<str>, Arc<str>)>,
    places: HashMap<Box<str>, Arc<str>>,
}

impl Names {
    pub fn van(&mut self, name: &str) -> Arc<str> {
        // rows of one van often stand together
        if let Some(last) = &self.last_van
            && **last == *name
        {
            return last.clone();
        }
        let van = match self.vans.get(name) {
            Some(van) => van.clone(),
            None => {
                let van: Arc<str> = name.into();
                self.vans.insert(name.into(), van.clone());
                van
            }
        };
        self.last_van = Some(van.clone());
        van
    }

    /// A postcode cell that was read before without any repair.
    pub fn place(&mut self, cell: &str) -> Option<Arc<str>> {
        if let Some((last, code)) = &self.last_place
            && **last == *cell
        {
            return Some(code.clone());
        }
        self.places.get(cell).cloned()
    }

    pub fn keep_place(&mut self, cell: &str, code: &str) -> Arc<str> {
        let code: Arc<str> = code.into();
        self.places.insert(cell.into(), code.clone());
        self.last_place = Some((cell.into(), code.clone()));
        code
    }

    pub fn text(&self, text: &str) -> Arc<str> {
        text.into()
    }
}
