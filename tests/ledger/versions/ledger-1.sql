BEGIN TRANSACTION;
CREATE TABLE drypoint_entries (
	id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	form INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	when_utc TEXT NOT NULL, 
	who TEXT NOT NULL, 
	why TEXT NOT NULL, 
	corrects INTEGER, 
	draft TEXT NOT NULL, 
	body TEXT NOT NULL, 
	body_sha256 TEXT NOT NULL, 
	previous TEXT NOT NULL, 
	hash TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (corrects), 
	FOREIGN KEY(corrects) REFERENCES drypoint_entries (id), 
	UNIQUE (draft)
);
INSERT INTO "drypoint_entries" VALUES(1,'tip',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'0839cfc9463ff0902ae93b60a72d5449','{"maker":"","name":"B1","note":"","serial":"T-0042","shape":"modified Berkovich"}','470cf6ce9345d6e089d93b7dcb4e91fb2d40f8d18c4a9a30eed1bc384b2b0d12','9511be8d217d9072128c5c5eff23730941e6f3fff21b29781a67b388f310be6b','8cb2e84525b2a65efc1639b2dc01c2a550ec288ec866b1b391b993a0e261660d');
INSERT INTO "drypoint_entries" VALUES(2,'tip',1,'B2','2026-01-31T12:00:00Z','A. Person','test',NULL,'486df4b47dc74be61fb202a0670f683a','{"maker":"","name":"B2","note":"","serial":"","shape":"Berkovich"}','2190a044bab3723c9e808adc4543525ab6c600bc986e3438082802a361adf675','8cb2e84525b2a65efc1639b2dc01c2a550ec288ec866b1b391b993a0e261660d','69f9b98a6fae30cf6de661657af10b9ec18e52ff361ebfdf9d92d3bf6d94097a');
INSERT INTO "drypoint_entries" VALUES(3,'frame',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'2142582b0179ab5240d21050926498a1','{"maker":"","name":"F","note":"","serial":""}','0434d385de13667a6a1a1468ac4aaaf814748354b56d567c59994a2f43602a9f','69f9b98a6fae30cf6de661657af10b9ec18e52ff361ebfdf9d92d3bf6d94097a','33fec49f33204a239c0539beb2df18e1e0936a42c38f9c860ec618deab618317');
INSERT INTO "drypoint_entries" VALUES(4,'block',1,'glass','2026-01-31T12:00:00Z','A. Person','test',NULL,'682436863b3eea98f8580394f22a5575','{"material":"fused silica","name":"glass","note":"","serial":""}','1ee8923cf749ecb9e8f69c2601f0718ceb3fadfa1384eceb673da972c5172618','33fec49f33204a239c0539beb2df18e1e0936a42c38f9c860ec618deab618317','a62cc920f0c4c955778d3344434362e5b317079988b039b394feeaf4711fb1db');
INSERT INTO "drypoint_entries" VALUES(5,'certificate',1,'K-17','2026-01-31T12:00:00Z','A. Person','test',NULL,'28463504d9312d831ccf9381f3366328','{"U":0.002,"document_sha256":null,"issued":"2026-01-02","item":"F","k":2.0,"laboratory":"invented","number":"K-17","of":"frame","quantity":"force scale","valid_until":"2027-01-02","value":1.0005}','2ad147720d9e0cc107e029e92e79b797a60eae186a848962f286d07fa63b2682','a62cc920f0c4c955778d3344434362e5b317079988b039b394feeaf4711fb1db','5cb6172ca5da7581b1800b9dfea9576420e6cb7baabcd0332764b7ff75ea2822');
INSERT INTO "drypoint_entries" VALUES(6,'calibration',1,'B1 in F','2026-01-31T12:00:00Z','A. Person','test',NULL,'0c1e36acede5ffb551a2494d88be4fe7','{"frame":"F","materials":["fused silica"],"on":"2026-01-10","sha256":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","text":"calibration = 1\n","tip":"B1","valid_until":"2027-01-10","version":"0.1"}','347bb31b537c3b16771b6beaf63252c5c377f74f55ced8ea30c4eb928072fbf6','5cb6172ca5da7581b1800b9dfea9576420e6cb7baabcd0332764b7ff75ea2822','d66eb3d98a14050ac423c471749ed1fcec72a2350db40fe068266553ea3d4a10');
INSERT INTO "drypoint_entries" VALUES(7,'mounting',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'586fe239b1f21f0ebfa6c4c619301710','{"frame":"F","on":"2026-01-09T08:30:00Z","tip":"B1"}','ad15f70628d70137421c9d3a0c6dee4014b7a7176fd586cbd4955c9bc9dd0d7b','d66eb3d98a14050ac423c471749ed1fcec72a2350db40fe068266553ea3d4a10','fbab4c97fbd967791905a7a2f28d594766c7fd03df45536f1df7e070b65146f7');
INSERT INTO "drypoint_entries" VALUES(8,'verification',1,'B1 in F','2026-01-31T12:00:00Z','A. Person','test',NULL,'ab8023881af28ea0c19ace97d6ececca','{"block":"glass","calibration":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","frame":"F","how":"indirect","on":"2026-01-11","sha256":"91ffa8c701dfe458f7b4d9e00ec1c8adde8008e8a341b58427f73c0c048e2274","text":"E_n = 0.4\n","tip":"B1","valid_until":null,"verdict":"pass"}','ba97b1810a076f15fec3ded9f39a73c05c5e6199fe5ee49156fb49a227c0ed4f','fbab4c97fbd967791905a7a2f28d594766c7fd03df45536f1df7e070b65146f7','646c0cfb1c0896d8544ceaec978ac1959c22ac1c76880b115a8b3257dfa57852');
INSERT INTO "drypoint_entries" VALUES(9,'verification',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'5a9189b4ec2cdd45e55b23a43ec2f45a','{"block":null,"calibration":null,"frame":"F","how":"direct","on":"2026-01-11","sha256":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","text":"","tip":null,"valid_until":null,"verdict":"undecided"}','99234992e1512bd7ef7dd718f8e89d69fc67afddaca30fc78530440b96d74a68','646c0cfb1c0896d8544ceaec978ac1959c22ac1c76880b115a8b3257dfa57852','daa2b18bb78daa596e027424744172487917db41be2ee65f2a6d2d6f83d0b447');
INSERT INTO "drypoint_entries" VALUES(10,'study',1,'glass','2026-01-31T12:00:00Z','A. Person','test',NULL,'5e2ba384a8d7dee16e4a78e35e1d3bde','{"decisions_sha256":null,"measured_from":"2026-01-12","measured_to":"2026-01-13T10:00:00Z","name":"glass","on":"2026-01-20","recipe_sha256":"abababababababababababababababababababababababababababababababab","results_sha256":"abababababababababababababababababababababababababababababababab","used":[{"calibration":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","frame":"F","tip":"B1"}],"version":"0.1"}','4bbb105b72d57f79e536e431c509b41816a06132ec99e5fbb4dc79b551027beb','daa2b18bb78daa596e027424744172487917db41be2ee65f2a6d2d6f83d0b447','71c44c2830985fc4e157a71727cdf9f1dae05442cbbd613bb5d618bbdc514897');
INSERT INTO "drypoint_entries" VALUES(11,'health',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'8e7bf30a6139ae59da8f29abb9d2a707','{"area_m2":1.2e-12,"depth_m":2e-07,"frame":"F","material":"","on":"2026-01-11","tests":1,"tip":"B1","u_area_m2":1e-15}','d05424cdc2146f8479a9b57a3f2bb9ed70d67cf1060621295a5274c8187a1fa7','71c44c2830985fc4e157a71727cdf9f1dae05442cbbd613bb5d618bbdc514897','eb59c9688b294e28f45381adf211f51e7becbcb829389a66bdf7aba738f27451');
INSERT INTO "drypoint_entries" VALUES(12,'remark',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'2c5dceebdf16456812e489b470ec6433','{"about":"B1","entry":1,"text":"“µm” – ü\n2"}','38dbc49148ca254e6bc8c6a0f8c77534e63424bc46e139e5b4312bdb36247122','eb59c9688b294e28f45381adf211f51e7becbcb829389a66bdf7aba738f27451','fbded26973825e1b8bff4ddd8573ac6354a7d9daf27a25bd4522d88d3f9a5409');
INSERT INTO "drypoint_entries" VALUES(13,'signature',1,'calibration B1 in F','2026-01-31T12:00:00Z','B. Person','approval',NULL,'e73c4355806586a6b25735b6bae4adfa','{"entry":6,"meaning":"approved","remark":"","sha256":"d66eb3d98a14050ac423c471749ed1fcec72a2350db40fe068266553ea3d4a10","subject":"calibration B1 in F"}','38c700355bb2acceac41c64c28b1bd787a5b5d34ff49e5ddc9538ebcf138a1c8','fbded26973825e1b8bff4ddd8573ac6354a7d9daf27a25bd4522d88d3f9a5409','b8bf127581b5b48820cfed2ba23efa4e0762423322fa6b704b1163712e1c1a7a');
INSERT INTO "drypoint_entries" VALUES(14,'tip',1,'B2','2026-01-31T12:00:00Z','A. Person','test',2,'277f3e19f57d835fc1f6a5e844a7af00','{"maker":"","name":"B2","note":"corrected","serial":"","shape":"Berkovich"}','e18ac9b3b3a8ba0712f8be9ab15f725af53b5110eb6242489f4993d5dd416542','b8bf127581b5b48820cfed2ba23efa4e0762423322fa6b704b1163712e1c1a7a','586defea11879224a32d81c90dff8482c3d7319df134f924a1653c0b53aaeda9');
INSERT INTO "drypoint_entries" VALUES(15,'withdrawal',1,'F','2026-01-31T12:00:00Z','A. Person','entered twice',9,'610af8ba5f1b9f72ea80091f3b21c8c3','{"of":"F"}','c1d2e8dda626deedc6049ffec889d356daf0ab52434347d2b304724bfbf49503','586defea11879224a32d81c90dff8482c3d7319df134f924a1653c0b53aaeda9','886515a4130241800ed73f128361e55c9aeb20c2766e8c2f65234526650d84b8');
CREATE TABLE drypoint_ledger (
	fact TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY (fact)
);
INSERT INTO "drypoint_ledger" VALUES('schema','1');
INSERT INTO "drypoint_ledger" VALUES('identity','87ce223b-a38b-4d8d-b6a6-f6358c20b23d');
CREATE TABLE drypoint_links (
	entry INTEGER NOT NULL, 
	role TEXT NOT NULL, 
	name TEXT NOT NULL, 
	PRIMARY KEY (entry, role, name), 
	FOREIGN KEY(entry) REFERENCES drypoint_entries (id)
);
INSERT INTO "drypoint_links" VALUES(1,'tip','B1');
INSERT INTO "drypoint_links" VALUES(2,'tip','B2');
INSERT INTO "drypoint_links" VALUES(3,'frame','F');
INSERT INTO "drypoint_links" VALUES(4,'block','glass');
INSERT INTO "drypoint_links" VALUES(5,'frame','F');
INSERT INTO "drypoint_links" VALUES(6,'tip','B1');
INSERT INTO "drypoint_links" VALUES(6,'frame','F');
INSERT INTO "drypoint_links" VALUES(6,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(7,'tip','B1');
INSERT INTO "drypoint_links" VALUES(7,'frame','F');
INSERT INTO "drypoint_links" VALUES(8,'tip','B1');
INSERT INTO "drypoint_links" VALUES(8,'frame','F');
INSERT INTO "drypoint_links" VALUES(8,'block','glass');
INSERT INTO "drypoint_links" VALUES(8,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(9,'frame','F');
INSERT INTO "drypoint_links" VALUES(10,'recipe','abababababababababababababababababababababababababababababababab');
INSERT INTO "drypoint_links" VALUES(10,'results','abababababababababababababababababababababababababababababababab');
INSERT INTO "drypoint_links" VALUES(10,'tip','B1');
INSERT INTO "drypoint_links" VALUES(10,'frame','F');
INSERT INTO "drypoint_links" VALUES(10,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(11,'tip','B1');
INSERT INTO "drypoint_links" VALUES(11,'frame','F');
INSERT INTO "drypoint_links" VALUES(12,'entry','1');
INSERT INTO "drypoint_links" VALUES(13,'entry','6');
INSERT INTO "drypoint_links" VALUES(13,'signed','d66eb3d98a14050ac423c471749ed1fcec72a2350db40fe068266553ea3d4a10');
INSERT INTO "drypoint_links" VALUES(14,'tip','B2');
CREATE INDEX drypoint_entries_name ON drypoint_entries (kind, name);
CREATE INDEX drypoint_links_name ON drypoint_links (role, name);
CREATE TRIGGER drypoint_entries_no_update BEFORE UPDATE ON drypoint_entries BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_entries_no_delete BEFORE DELETE ON drypoint_entries BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_links_no_update BEFORE UPDATE ON drypoint_links BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_links_no_delete BEFORE DELETE ON drypoint_links BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
COMMIT;
