//! How people head their columns: one table, to be read and extended by whoever
//! knows water and vans.
//!
//! Each line is a column and the headers that name it, separated by commas, the
//! canonical name first. Case, accents, plural s, `_ - . / ( )` and spaces do not
//! matter. A unit behind the name or in brackets (`ppm`, `µS/cm`, `°F`, `psi`,
//! `gallons`, `L/h` …) is read off separately and need not be listed, nor need a
//! leading `TDS` or `EC`.

use super::columns::Column;
use super::headers::RecordKind::{self, Fills, Hardness, Readings, Services, Vans};

/// One column of one kind and how people head it.
#[derive(Debug, Clone, Copy)]
pub struct Heading {
    pub kind: RecordKind,
    pub column: Column,
    spellings: &'static str,
}

impl Heading {
    /// The headers that name the column, the canonical name first.
    pub fn spellings(&self) -> impl Iterator<Item = &'static str> {
        self.spellings.split(',').map(str::trim)
    }
}

const fn heading(kind: RecordKind, column: Column, spellings: &'static str) -> Heading {
    Heading {
        kind,
        column,
        spellings,
    }
}

const VAN: &str = "van, Reg, Registration, Reg No, Reg Number, Registration No, Vehicle, Vehicle Reg, \
     Veh, Veh Reg, Van no, Van number, Van ID, Van Reg, Unit, Unit no, Truck, Rig, \
     Fleet no, Fleet number, Callsign, Call sign, Van name, Vehicle no, Vehicle ID";
const POSTCODE: &str = "postcode, Post code, PC, Area, Where, Location, Site, Zip, Zip code, Fill point, \
     District, Outcode, Postal code, Postcode area, Postcode district, Site postcode, \
     Job postcode";
const DAY: &str = "date, Day, Reading date, Fill date, Date of reading, Date of fill, Start date";
const CLOCK: &str = "time, Time of day, Clock, Clock time, Reading time, Fill time, Start time";
const NOTE: &str = "note, Notes, Comment, Comments, Remarks, Details, Description";

/// The mapping. Add a spelling to its line, or a line for a new column.
pub const MAPPING: &[Heading] = &[
    // readings: a look at the meters
    heading(Readings, Column::Van, VAN),
    heading(
        Readings,
        Column::TakenAt,
        "taken_at, Taken, Date/Time, Datetime, Date and time, When, Timestamp, Read on, \
         Read at, Checked, Checked at, Date checked, Logged at, Logged, Test date, \
         Tested on, Measured at, Measured on, Time stamp",
    ),
    heading(Readings, Column::Day, DAY),
    heading(Readings, Column::Clock, CLOCK),
    heading(Readings, Column::Postcode, POSTCODE),
    heading(
        Readings,
        Column::FeedPpm,
        "feed_ppm, Feed, TDS in, Tap, Tap TDS, Tap ppm, Tap water, In, Inlet, Incoming, \
         Feed TDS, Feed water, Mains, Mains ppm, Mains TDS, Mains water, Raw, Raw water, \
         Supply, Before, Pre RO, Before RO, Before membrane, TDS1, TDS 1, Source ppm, \
         Source TDS, Source water, Inlet TDS, Incoming TDS, Input",
    ),
    heading(
        Readings,
        Column::PermeatePpm,
        "permeate_ppm, Permeate, Membrane, Membrane ppm, After membrane, RO, RO out, RO TDS, \
         RO water, Post RO, After RO, Perm, Before resin, Before DI, Pre DI, Pre resin, Mid, \
         Middle, Between, TDS2, TDS 2, Membrane out, Post membrane, Out of membrane",
    ),
    heading(
        Readings,
        Column::ProductPpm,
        "product_ppm, Product, Out, TDS out, Final, Pure, Pure ppm, Pure water, After resin, \
         After DI, Post DI, Post resin, DI, DI out, Resin, Resin out, At pole, Pole, \
         Tank TDS, Tank ppm, End, TDS3, TDS 3, Output, Product water, Final ppm, Pure TDS, \
         Outlet",
    ),
    heading(
        Readings,
        Column::WaterC,
        "water_c, Temp, Temperature, Water temp, Water temperature, °C, deg C, Tap temp, T, \
         Feed temp, Feed temperature, °F, deg F",
    ),
    heading(
        Readings,
        Column::FeedBar,
        "feed_bar, Pressure, Bar, Inlet pressure, Working pressure, Feed pressure, PSI, \
         Press, kPa, Mains pressure, Tap pressure, Pump pressure",
    ),
    heading(
        Readings,
        Column::PermeateLpm,
        "permeate_lpm, Flow, Pure flow, Permeate flow, Product flow, L/min, LPM, \
         Litres a minute, Litres per minute, Make rate, Production, Production rate, L/h, \
         LPH, Flow rate, Pure, Permeate",
    ),
    heading(
        Readings,
        Column::ConcentrateLpm,
        "concentrate_lpm, Waste, Waste flow, Reject, Reject flow, Drain, Drain flow, Brine, \
         Brine flow, Conc, Conc flow, Concentrate, Concentrate flow",
    ),
    // fills: a tank fill
    heading(Fills, Column::Van, VAN),
    heading(
        Fills,
        Column::StartedAt,
        "started_at, Started, Start, Fill start, From, Began, On, Filled at, Filled on, \
         Date/Time, Datetime, Date and time, When, Timestamp, Fill started, Tap on",
    ),
    heading(Fills, Column::Day, DAY),
    heading(Fills, Column::Clock, CLOCK),
    heading(
        Fills,
        Column::EndedAt,
        "ended_at, Ended, End, Finish, Finished, Fill end, End time, Finish time, To, Off, \
         Stopped, Done, Until, Fill ended, Tap off",
    ),
    heading(Fills, Column::Postcode, POSTCODE),
    heading(
        Fills,
        Column::Litres,
        "litres, Liters, L, Ltr, Ltrs, Filled, Volume, Vol, Qty filled, Tank fill, \
         Water made, m3, Gallons, Litres filled, Litres made, Pure litres, Product litres, \
         Fill, Quantity, Qty, Amount, Fill volume, Pure water",
    ),
    heading(
        Fills,
        Column::MeterLitres,
        "meter_litres, Meter, Counter, Meter reading, Total, Totaliser, Totalizer, Odometer, \
         Cumulative, Clock reading, Water meter, Total litres, Running total, \
         Counter reading, Litre counter",
    ),
    heading(
        Fills,
        Column::RejectLitres,
        "reject_litres, Waste litres, Drained, Reject volume, To drain, Waste L, Waste, \
         Reject, Drain, Waste water, Waste volume, Drain litres, Brine",
    ),
    heading(
        Fills,
        Column::Source,
        "source, From where, Water from, Type, Mains or bought, Supply type, Water source, \
         Supply, Water type, Fill type",
    ),
    // services: work done on a van
    heading(Services, Column::Van, VAN),
    heading(
        Services,
        Column::DoneAt,
        "done_at, Done, Done on, Date done, Fitted, Fitted on, Changed, Changed on, \
         Service date, Replaced, Replaced on, Job date, Date, Day, When, Date/Time, \
         Date fitted, Date changed, Datetime, Timestamp, Work date",
    ),
    heading(Services, Column::Clock, CLOCK),
    heading(
        Services,
        Column::Item,
        "item, What, Work, Work done, Job, Service, Component, Type, Serviced, \
         What was done, Job type, Service type",
    ),
    heading(
        Services,
        Column::Quantity,
        "quantity, Qty, Amount, How many, Litres resin, Pieces, No of, Number, Bags, Litres, \
         Resin litres, Count",
    ),
    heading(
        Services,
        Column::Cost,
        "cost, Price, Paid, £, €, $, Spend, Amount paid, Net, Total cost, Cost £, Cost €, \
         Cost $, Price £, Price €, Net cost, GBP, EUR, USD",
    ),
    heading(
        Services,
        Column::Part,
        "part, Parts, Part no, Part number, Make, Model, Size, Batch, Brand, Product, \
         Make and size, Part used",
    ),
    heading(Services, Column::Note, NOTE),
    // vans: the fleet
    heading(Vans, Column::Van, VAN),
    heading(
        Vans,
        Column::BasePostcode,
        "base_postcode, Base, Postcode, Post code, Depot, Home, Home postcode, \
         Depot postcode, Yard, Base PC, Based at, Zip",
    ),
    heading(
        Vans,
        Column::TankLitres,
        "tank_litres, Tank size, Tank, Tank cap, Tank capacity, Tank volume, Tank L",
    ),
    heading(
        Vans,
        Column::Membranes,
        "membranes, Membrane, No of membranes, Number of membranes, ROs, No of ROs, \
         Membrane count, RO membranes, RO units, RO",
    ),
    heading(
        Vans,
        Column::ResinLitres,
        "resin_litres, Resin size, Resin, DI litres, DI, DI size, Bottle size, Vessel, \
         Vessel size, Vessel litres, Resin L, Resin volume, Resin vessel",
    ),
    heading(
        Vans,
        Column::InServiceOn,
        "in_service_on, In service, Start date, On road, On the road, Bought, \
         In service from, In use from, Started",
    ),
    heading(
        Vans,
        Column::OutOfServiceOn,
        "out_of_service_on, Off road, Off the road, Sold, Sold on, Retired, Retired on, \
         Out of service, End date, Scrapped",
    ),
    heading(
        Vans,
        Column::From,
        "from, Valid from, From date, Since, Holds from",
    ),
    // hardness: what the supplier publishes
    heading(
        Hardness,
        Column::Postcode,
        "postcode, Post code, PC, Area, Zip, District, Outcode, Sector, Zone, Water zone, \
         Supply zone, Postal code, Postcode area, Postcode district, Postcode sector, \
         Location",
    ),
    heading(
        Hardness,
        Column::Hardness,
        "hardness, Total hardness, Water hardness, CaCO3, As CaCO3, Clark, English degrees, \
             °e, French, French degrees, °f, German, German degrees, °dH, dH, mmol/l, Calcium, \
         Ca mg/l, Hardness level, Average hardness, Mean hardness, mg/l CaCO3, \
         Clark degrees, Value, gpg",
    ),
    heading(
        Hardness,
        Column::Unit,
        "unit, Units, Hardness unit, Measured in",
    ),
    heading(
        Hardness,
        Column::Source,
        "source, Supplier, Published by, Company, Water company, Water supplier, Provider, \
         Reference",
    ),
    heading(
        Hardness,
        Column::AsOf,
        "as_of, Year, Updated, Date, Published, Published on, As at, Valid from, Sampled, \
         Updated on, Report year",
    ),
];
