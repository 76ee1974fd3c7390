//! The columns a row may have, by their canonical names.

use super::units::Measure;

macro_rules! columns {
    ($($variant:ident $name:literal $measure:ident;)*) => {
        /// A column of one of the five kinds of record.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Column { $($variant,)* }

        /// Every column, in the order in which they are declared.
        pub(super) const ALL: [Column; Column::COUNT] = [$(Column::$variant),*];

        impl Column {
            /// How many there are.
            pub(super) const COUNT: usize = [$(Column::$variant),*].len();

            /// The canonical name.
            pub fn name(self) -> &'static str {
                match self { $(Column::$variant => $name,)* }
            }

            pub(super) fn measure(self) -> Measure {
                match self { $(Column::$variant => Measure::$measure,)* }
            }
        }
    };
}

columns! {
    Van "van" Text;
    TakenAt "taken_at" Date;
    Postcode "postcode" Text;
    FeedPpm "feed_ppm" Dissolved;
    PermeatePpm "permeate_ppm" Dissolved;
    ProductPpm "product_ppm" Dissolved;
    FeedUsCm "feed_us_cm" Dissolved;
    PermeateUsCm "permeate_us_cm" Dissolved;
    ProductUsCm "product_us_cm" Dissolved;
    WaterC "water_c" Temperature;
    FeedBar "feed_bar" Pressure;
    PermeateLpm "permeate_lpm" Flow;
    ConcentrateLpm "concentrate_lpm" Flow;
    StartedAt "started_at" Date;
    EndedAt "ended_at" Date;
    Litres "litres" Volume;
    MeterLitres "meter_litres" Volume;
    RejectLitres "reject_litres" Volume;
    Source "source" Text;
    DoneAt "done_at" Date;
    Item "item" Text;
    Quantity "quantity" Pieces;
    Cost "cost" Money;
    Part "part" Text;
    Note "note" Text;
    BasePostcode "base_postcode" Text;
    TankLitres "tank_litres" Volume;
    Membranes "membranes" Pieces;
    ResinLitres "resin_litres" Volume;
    InServiceOn "in_service_on" Date;
    OutOfServiceOn "out_of_service_on" Date;
    From "from" Date;
    Hardness "hardness" Hardness;
    Unit "unit" Text;
    AsOf "as_of" Date;
    Day "date" Date;
    Clock "time" Date;
}

impl Column {
    /// The conductivity column that may stand for a ppm column.
    pub(super) fn in_us_cm(self) -> Option<Column> {
        match self {
            Column::FeedPpm => Some(Column::FeedUsCm),
            Column::PermeatePpm => Some(Column::PermeateUsCm),
            Column::ProductPpm => Some(Column::ProductUsCm),
            _ => None,
        }
    }
}
